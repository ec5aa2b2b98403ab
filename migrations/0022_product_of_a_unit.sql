-- What a unit is dosed with: its own product, else its programme's usual one, else the first by name that is in use.

CREATE FUNCTION product_of(own uuid, programme text) RETURNS uuid LANGUAGE sql STABLE AS $$
    SELECT x.id FROM products x WHERE x.active AND x.programme_code = programme
    ORDER BY x.id = own DESC NULLS LAST, x.id = (SELECT g.usual_product_id FROM programmes g WHERE g.code = programme) DESC NULLS LAST, x.name, x.id LIMIT 1
$$;
